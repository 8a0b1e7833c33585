"""The printing record: the page that goes into the box of prints."""
