"""A bad link: passes what a browser sends on to a server, and fails in the way it is told."""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass

METHODS = (b"GET ", b"POST ")


@dataclass
class Proxy:
    """Listens at ``address`` for ``target`` (host, port), and does to each request what ``fault`` says.

    ``pass`` nothing; ``refuse`` hang up on it; ``cut`` hang up after 40 bytes of it; ``hang`` never answer; ``drop``
    let the server have it and lose the answer; bytes are answered in the server's place. ``only`` spares other methods.
    """

    target: tuple[str, int]
    address: str = ""
    fault: str | bytes = "pass"
    only: bytes = b""

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection of the browser."""
        with closing(writer):
            try:
                back, forth = await asyncio.open_connection(*self.target)
            except OSError:
                return
            lost = asyncio.Event()
            answers = asyncio.create_task(self._pump(back, writer, lost))
            try:
                with closing(forth):
                    await self._requests(reader, writer, forth, lost)
            finally:
                answers.cancel()

    async def _requests(
        self,
        reader: asyncio.StreamReader,
        writer: asyncio.StreamWriter,
        forth: asyncio.StreamWriter,
        lost: asyncio.Event,
    ) -> None:
        fault: str | bytes = "pass"
        while chunk := await _read(reader):
            if chunk.startswith(METHODS):
                fault = self.fault if chunk.startswith(self.only) else "pass"
            if fault == "refuse":
                return
            if isinstance(fault, bytes):
                writer.write(fault)
                await writer.drain()
                return
            if fault == "cut":
                forth.write(chunk[:40])
                await forth.drain()
                return
            if fault == "drop":
                lost.set()
            if fault != "hang":
                forth.write(chunk)

    async def _pump(self, back: asyncio.StreamReader, writer: asyncio.StreamWriter, lost: asyncio.Event) -> None:
        while (chunk := await _read(back)) and not lost.is_set():
            writer.write(chunk)
        writer.close()


async def _read(reader: asyncio.StreamReader) -> bytes:
    try:
        return await reader.read(65536)
    except (OSError, asyncio.CancelledError):
        return b""


@contextmanager
def proxied(target: str) -> Iterator[Proxy]:
    """A proxy for the server at ``target``, an address such as ``http://127.0.0.1:8000``, in a thread of its own."""
    host, port = target.removeprefix("http://").strip("/").split(":")
    proxy = Proxy((host, int(port)))
    open_now = threading.Event()
    loop = asyncio.new_event_loop()
    done = asyncio.Event()

    async def run() -> None:
        async with await asyncio.start_server(proxy.serve, "127.0.0.1", 0) as server:
            proxy.address = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
            open_now.set()
            await done.wait()
        running = asyncio.all_tasks() - {asyncio.current_task()}
        for task in running:
            task.cancel()
        await asyncio.gather(*running, return_exceptions=True)
        await asyncio.sleep(0)  # lets the connections go

    thread = threading.Thread(target=loop.run_until_complete, args=[run()])
    thread.start()
    assert open_now.wait(10)
    try:
        yield proxy
    finally:
        loop.call_soon_threadsafe(done.set)
        thread.join()
        loop.close()
