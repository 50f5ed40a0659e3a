"""New folders: an empty facility to fill in (`facility.py`), and the demo facility with its whole history (`demo.py`)."""
