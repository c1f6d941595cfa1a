"""An invented facility to try the app with; loaded through the same door as a real one."""
