"""Putting the firmware on a board: images, the programmer, and the settings that must survive."""
