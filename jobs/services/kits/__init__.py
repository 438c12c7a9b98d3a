"""The life of a kit: what is promised to it, loaded for it, and let go again."""
