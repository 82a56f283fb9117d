"""The pages of the committee's site and of the packets: each module puts blocks together for one kind of page."""
