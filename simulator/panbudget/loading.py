"""
Loading: what a Ctrl-C does before the program is there. Imported before all else, it imports next to nothing.
"""

import signal


class Loading:
    """Let Ctrl-C end the program at once and without a traceback while it is loaded; told to ignore it, it does."""

    mine = False

    def __enter__(self) -> None:
        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
            try:
                signal.signal(signal.SIGINT, signal.SIG_DFL)
                self.mine = True
            except ValueError:  # in another thread, which signals don't reach
                return

    def __exit__(self, *_: object) -> None:
        if self.mine:
            signal.signal(signal.SIGINT, signal.default_int_handler)
