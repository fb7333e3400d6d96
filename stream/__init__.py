"""The running service: camera workers, hands-free capture, sockets, the one live session.

The one writer of the database lives here, and so do the clocks. May import every
room but the simulator and ui.
"""
