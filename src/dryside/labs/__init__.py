"""Which lab takes each roll, what it costs, when it is ready; orders, receipts, due dates."""
