"""Reel allotment: which cuts come off which reels, each cut in one piece."""
