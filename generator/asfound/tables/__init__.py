"""What other programs read: tables of declared columns, in files of every site and as frames for notebooks."""
