"""Words, tables and pages about runs, for people: nothing here decides anything."""
