"""Recordings in and out: CSV, Parquet, Arrow stream, MDF4 and TDMS behind one reader and one writer."""
