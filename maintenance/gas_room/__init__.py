"""Deliveries, analyses, samples, counters of compressors, trends and orders of gas."""
