"""New folders: an empty facility (`facility.py`), and the demo facility with its history (`demo.py`)."""
