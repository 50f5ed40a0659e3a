"""What calibrations and checks say of the references themselves."""
