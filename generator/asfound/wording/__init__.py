"""Words, glyphs and cautions: one text for every place that shows them."""
