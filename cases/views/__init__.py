"""Views: parse the form, do the one act, answer."""
