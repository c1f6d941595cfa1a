"""Tests of comparisons, references and recalls."""
