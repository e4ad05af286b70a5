"""PDF pages from typed data: order sheet, labels, contact sheet, sleeve insert, print sheet."""
