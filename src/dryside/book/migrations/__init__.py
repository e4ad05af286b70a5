"""Every change of the schema, in order. Never edit one that was released: add the next."""
