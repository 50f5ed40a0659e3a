"""The CSV of visits: text, header, columns, rows."""
