"""Waivers and call-outs: what is decided when the answer is no, and when the telephone rings."""
