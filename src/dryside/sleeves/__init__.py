"""Cut, sleeve, file and find negatives."""
