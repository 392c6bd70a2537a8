"""What commands print: tables, sentences and JSON, in a module for each file of commands."""
