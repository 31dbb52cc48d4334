"""Puts a rig on a TCP port. From the command line, or in a thread for a study (`Served`).

    python tests/second-world/serve.py --part grip --seed 7 --port 0 [--real-time] [--quirk NAME=VALUE]
"""

import argparse
import asyncio
import threading

import rig as rigs


async def talk(rig, reader, writer, quirks):
    """One host at a time: requests in, chunks of the run, everything out."""
    opened = rig.wall()
    # The host starts afresh: what was sent to nobody is gone.
    rig.out.clear()
    closing_at = None
    try:
        while True:
            wait = 0.02
            if rig.scheduled is not None:
                wait = min(0.02, max(0.0, rig.ahead()))
            data = b""
            try:
                data = await asyncio.wait_for(reader.read(65536), wait) if wait > 0.0 else await peek(reader)
                if data == b"":
                    break
            except (asyncio.TimeoutError, TimeoutError):
                data = b""
            if data:
                rig.feed(quirks.incoming(data))
            quirks.between(rig)
            if rig.scheduled is not None:
                # Requests that wait are heard before silence is judged.
                if rig.ahead() <= 0.0:
                    rig.advance()
            else:
                rig.catch_up()
            if not buffered(reader):
                rig.silent()
            if rig.out:
                closing_at = quirks.closing(rig, opened) if closing_at is None else closing_at
                sent = b"".join(quirks.outgoing(f) for f in rig.out)
                rig.out.clear()
                writer.write(sent)
                await writer.drain()
            if quirks.closes_now(rig, opened):
                break
    except (ConnectionError, OSError):
        pass
    finally:
        rig.end_run(3)
        writer.close()


def buffered(reader):
    return bool(getattr(reader, "_buffer", b""))


async def peek(reader):
    """What has come, without waiting; raises TimeoutError when nothing has."""
    await asyncio.sleep(0)
    if not buffered(reader) and not reader.at_eof():
        raise TimeoutError
    return await reader.read(65536)


class NoQuirks:
    """A well-behaved rig; adversary.py has the others."""

    def incoming(self, data):
        return data

    def outgoing(self, frame):
        return frame

    def between(self, rig):
        pass

    def closing(self, rig, opened):
        return None

    def closes_now(self, rig, opened):
        return False


class Served:
    """A rig served in a thread: `with Served(rig) as address: ...`."""

    def __init__(self, rig, quirks=None, port=0):
        self.rig, self.quirks, self.port = rig, quirks or NoQuirks(), port
        self.loop = asyncio.new_event_loop()
        self.ready, self.error = threading.Event(), None

    def __enter__(self):
        self.thread = threading.Thread(target=self.work, daemon=True)
        self.thread.start()
        self.ready.wait()
        return f"tcp:127.0.0.1:{self.port}"

    def work(self):
        asyncio.set_event_loop(self.loop)
        self.loop.run_until_complete(self.serve())

    async def serve(self):
        self.stopping = asyncio.Event()

        async def client(reader, writer):
            try:
                await talk(self.rig, reader, writer, self.quirks)
            except asyncio.CancelledError:
                # The server ends while a session is still open.
                writer.close()
            except Exception as error:   # noqa: BLE001 -- told by the study as a fault of this rig
                self.error = error
                writer.close()

        server = await asyncio.start_server(client, "127.0.0.1", self.port)
        self.port = server.sockets[0].getsockname()[1]
        self.ready.set()
        await self.stopping.wait()
        server.close()
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            task.cancel()
        await asyncio.sleep(0)

    def __exit__(self, *_):
        self.loop.call_soon_threadsafe(self.stopping.set)
        self.thread.join(5.0)


def main():
    import numpy as np

    import adversary
    import on_rig
    import sheets

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", help="for the part sheets (else TRACKPAIR_PROGRAM)")
    parser.add_argument("--part", choices=["grip", "body"], default="grip")
    parser.add_argument("--kind", help="fault, or: sound")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--index", type=int, default=0)
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--real-time", action="store_true")
    parser.add_argument("--quirk", action="append", default=[], help="NAME or NAME=VALUE, see adversary.py")
    given = parser.parse_args()
    draw = on_rig.draw_grip if given.part == "grip" else on_rig.draw_body
    plant, truth, _ = draw(sheets.program(given.program), given.seed, given.index, given.kind)
    rig = rigs.Rig(plant, real_time=given.real_time)
    quirks = adversary.Quirks.parse(given.quirk, np.random.default_rng(given.seed))
    quirks.prepare(rig)
    with Served(rig, quirks, given.port) as address:
        print(f"listening on {address}: {truth['fault']['kind']}", flush=True)
        threading.Event().wait()


if __name__ == "__main__":
    main()
