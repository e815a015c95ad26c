"""What is true of materials, air and amounts: pure calculations, each with its source."""
