"""What is handed out: instruments, scale sheets, parts, practice tracks."""
