"""The plant: boards, riders and roads, and the kernel that rides them."""
