"""One module a command: ``HELP`` text, ``add_arguments(parser)``, ``run(arguments) -> exit code``."""
