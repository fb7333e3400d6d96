"""What is on show of a session: published where it changed, under a rising revision."""

from dataclasses import replace

from stream.given import Publish
from stream.keeping import Kept
from stream.messages import SessionView
from stream.views import idle_view, session_view

REVISIONS_APART = 1000
"""A resumed session counts on from here, so that no page takes it for what it has drawn."""


class Showing:
    """The view that stands, and the last one that was published."""

    def __init__(self, publish: Publish, revision: int) -> None:
        self._publish = publish
        self.view = SessionView(revision)
        self._shown: tuple[Kept | None, tuple[str, ...], bool] | None = None

    def count_on(self, revision: int) -> None:
        """Count on from the revision that an earlier session kept."""
        self.view = SessionView(revision + REVISIONS_APART)

    def show(self, kept: Kept | None, troubles: tuple[str, ...], *, camera_lost: bool) -> None:
        """Publish the view where it changed."""
        before, self._shown = self._shown, (kept, troubles, camera_lost)
        if before is not None and before[0] is kept and before[1:] == (troubles, camera_lost):
            return
        view = (
            session_view(kept, troubles, camera_lost=camera_lost)
            if kept
            else idle_view(troubles, camera_lost=camera_lost)
        )
        if before is not None and replace(view, revision=self.view.revision) == self.view:
            return
        self.view = replace(view, revision=self.view.revision + 1)
        self._publish("state", self.view)
