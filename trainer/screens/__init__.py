"""The Textual application."""
