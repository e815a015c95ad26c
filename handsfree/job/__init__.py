"""What has happened, and what follows from it."""
