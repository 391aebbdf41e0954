"""A watch's two doors as one: the local socket for attached screens, and the browsers that look through it."""

from monitor.attach.server import AttachServer
from monitor.serve.server import ScreenServer


class Beside:
    """Both servers of a watch (`monitor.session_parts.Serving`).

    The socket closes first, so that every page learns why the watch has ended.
    """

    def __init__(self, attached: AttachServer, browsers: ScreenServer) -> None:
        self._attached, self._browsers = attached, browsers

    @property
    def notice(self) -> str:
        """Why no screen can be attached, or no browser look on; empty when both can."""
        return "; ".join(filter(None, (self._attached.notice, self._browsers.notice)))

    async def open(self) -> None:
        """Begin."""
        await self._attached.open()
        await self._browsers.open()

    async def close(self, reason: str) -> None:
        """Tell all why the watch has ended, and end within seconds."""
        await self._attached.close(reason)
        await self._browsers.close()
