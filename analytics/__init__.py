"""The science: pure functions over arrays. No clock, no input or output, no state."""
