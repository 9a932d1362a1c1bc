"""What each command does, apart from how it is called: one module a command, imported when it runs."""
