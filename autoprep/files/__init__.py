"""Reading photos, colour profiles, encoders and safe storage."""
