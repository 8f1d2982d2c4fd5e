"""What the markings ask of the crew: quantities, time, jobs."""
