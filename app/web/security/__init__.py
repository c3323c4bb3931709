"""What stands between the network and the pages: who is answered, what is refused, and how long anything waits."""
