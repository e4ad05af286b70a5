"""An invented photographer's year, and a film simulator that draws her negatives."""
