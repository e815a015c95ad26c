"""The outside world: sound, files, the terminal and the clock."""
