"""The command line. Reading commands load no numerical or web library."""
