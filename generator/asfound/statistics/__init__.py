"""Least squares, control charts and sums of exponentials: numpy only; knows no records."""
