"""PDF pages read back by an outside reader (PDFium): sizes, pictures, lines, codes; millimetres from the top left."""

from dataclasses import dataclass

import pypdfium2 as pdfium
import pypdfium2.raw as raw
import zxingcpp

POINT_MM = 25.4 / 72


@dataclass(frozen=True)
class Box:
    """An object's bounds on its page, mm."""

    left: float
    top: float
    width: float
    height: float


def page_sizes_mm(pdf):
    """Width and height of each page."""
    with pdfium.PdfDocument(pdf) as document:
        return [tuple(side * POINT_MM for side in page.get_size()) for page in document]


def boxes(pdf, kind, page=0):
    """Bounds of all objects of a kind (`raw.FPDF_PAGEOBJ_IMAGE` or `..._PATH`) on a page, groups entered."""
    with pdfium.PdfDocument(pdf) as document:
        sheet = document[page]
        height = sheet.get_height()
        found = []
        for one in sheet.get_objects(filter=[kind], max_depth=6):
            left, bottom, right, top = one.get_bounds()
            found.append(
                Box(left * POINT_MM, (height - top) * POINT_MM, (right - left) * POINT_MM, (top - bottom) * POINT_MM)
            )
        return found


def images(pdf, page=0):
    """Bounds of the pictures of a page."""
    return boxes(pdf, raw.FPDF_PAGEOBJ_IMAGE, page)


def paths(pdf, page=0):
    """Bounds of the lines and shapes of a page."""
    return boxes(pdf, raw.FPDF_PAGEOBJ_PATH, page)


def words(pdf, page=0):
    """All text of a page."""
    with pdfium.PdfDocument(pdf) as document:
        return document[page].get_textpage().get_text_range()


def picture(pdf, page=0, ppi=150):
    """The page as a Pillow image."""
    with pdfium.PdfDocument(pdf) as document:
        return document[page].render(scale=ppi / 72).to_pil()


def qr_texts(pdf, page=0):
    """What a reader finds in the QR codes of a page."""
    return sorted(one.text for one in zxingcpp.read_barcodes(picture(pdf, page, ppi=200)))
