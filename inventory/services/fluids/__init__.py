"""What becomes of fluid that came back: caught or swept, strained, tested, passed as fit, blended, spent."""
