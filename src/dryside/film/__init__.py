"""Ground floor: facts of film, pure and without I/O."""
