"""Site criteria: rows of `table`, and a module for each that computes more; all are plug-ins."""
