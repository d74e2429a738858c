"""From a photo, its plan and a destination preset to finished pixels."""
