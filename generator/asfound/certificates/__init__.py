"""What a certificate states, how it is printed, frozen, computed again and compared."""
