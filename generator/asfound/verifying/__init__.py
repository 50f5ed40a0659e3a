"""Whether a certificate's PDF agrees with itself: its attachments, its numbers, its pages."""
