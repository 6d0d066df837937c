"""Forms: each reads what a person typed and says what an act needs. They write nothing."""
