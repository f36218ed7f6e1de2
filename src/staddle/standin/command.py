"""The command line: reads the answers, makes what is missing, serves. Everything that stops it shows on the console."""

import argparse
import contextlib
import errno
import signal
import sys
import threading
from pathlib import Path

from staddle.standin.answers import Answers, answers_from_kept, kept_answers, read_answers
from staddle.standin.certificate import keep_certificate, server_context
from staddle.standin.core import Core, Pace
from staddle.standin.dial import Reach
from staddle.standin.election import watch
from staddle.standin.heartbeat import Heartbeats
from staddle.standin.joining import Joining
from staddle.standin.password import Gate, stretch
from staddle.standin.refusal import Refusal, StartRefused
from staddle.standin.server import Server
from staddle.standin.service import Service
from staddle.standin.state import State

__all__ = ["main"]


class Console:
    """What the machine's screen shows; every line is there as soon as it is said."""

    def __init__(self, path: Path | None) -> None:
        self._handle = sys.stdout if path is None else path.open("a", encoding="utf-8", buffering=1)

    def say(self, line: str) -> None:
        """Add one line; a disk that is full of it must not end the member."""
        with contextlib.suppress(OSError):
            print(line, file=self._handle, flush=True)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="staddle.standin", description="One member of the stand-in appliance."
    )
    parser.add_argument(
        "--answers", type=Path, required=True, help="OVF environment document, or the ISO image that holds it"
    )
    parser.add_argument(
        "--state", type=Path, required=True, help="folder for key, certificate, durable state"
    )
    parser.add_argument(
        "--console", type=Path, help="file to append the console to; default is standard output"
    )
    parser.add_argument("--processors", type=int, required=True, help="processors the machine has")
    parser.add_argument("--memory-mib", type=int, required=True, help="memory the machine has")
    parser.add_argument(
        "--certificate-maker", help="command run with common name, names, key file, certificate file"
    )
    parser.add_argument("--address-map", action="append", default=[], help="NETWORK=NETWORK, for rehearsal")
    parser.add_argument("--port-map", action="append", default=[], help="ADDRESS=PORT, for rehearsal")
    parser.add_argument("--port", type=int, default=8443, help="port that is served and told to others")
    parser.add_argument("--speed", type=float, default=1.0, help="factor on heartbeat and detection times")
    return parser


def main(arguments: list[str]) -> int:
    """Run one member until it is ended. Returns: 1 where it cannot start; argparse exits 2 for wrong usage."""
    args = _parser().parse_args(arguments)
    console = Console(args.console)
    try:
        _serve(args, console)
    except StartRefused as refused:
        for line in refused.lines:
            console.say(f"error: {line}")
        return 1
    except Refusal as refused:
        console.say(f"error: {refused.message}")
        return 1
    except OSError as exc:  # a full disk while the key is made, for example
        console.say(f"error: {exc.strerror or exc}")
        return 1
    return 0


def _serve(args: argparse.Namespace, console: Console) -> None:
    state, answers = _told(args)
    reach = Reach.parse(args.address_map, args.port_map)
    if not 0 < args.speed <= 10:
        raise StartRefused("--speed must be above 0 and at most 10")
    console.say(f"Sluicelog {answers.version}")
    console.say(f"name {answers.host_name}")
    server = _bind(answers, args.port, reach)
    state = state or State(args.state)
    kept = state.load()
    if kept and kept["name"] != answers.host_name:
        raise StartRefused(f"the answers name {answers.host_name}, but the state here is of {kept['name']}")
    fingerprint = keep_certificate(
        args.state, name=answers.host_name, address=answers.management_address, maker=args.certificate_maker
    )
    if not kept:
        kept = {"name": answers.host_name, "password": stretch(answers.admin_password)}
    if kept.get("answers") != kept_answers(answers):
        kept = {**kept, "answers": kept_answers(answers)}
        state.keep(kept)
    record = {
        "name": answers.host_name,
        "address": answers.management_address,
        "port": args.port,
        "telemetry_address": answers.telemetry_address,
        "fingerprint": fingerprint,
        "version": answers.version,
        "processors": args.processors,
        "memory_mib": args.memory_mib,
    }
    pace = Pace(heartbeat_s=0.5 * args.speed, detection_s=3.0 * args.speed)
    core = Core(record=record, state=state, kept=kept, reach=reach, pace=pace)
    core.say = console.say
    server.equip(server_context(args.state), core, Service(core, Joining(core)), Gate(lambda: core.password))
    threading.Thread(target=watch, args=(core, Heartbeats(core)), daemon=True).start()
    console.say(f"address {answers.management_address} port {args.port}")
    console.say(f"certificate SHA-256 {fingerprint}")
    console.say("ready")
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    server.serve_forever()


def _told(args: argparse.Namespace) -> tuple[State | None, Answers]:
    """The answers of the document; where it was detached after the first start, those that were kept then."""
    if args.answers.exists() or not args.state.exists():
        return None, read_answers(args.answers)
    state = State(args.state)
    kept = state.load().get("answers")
    return state, read_answers(args.answers) if kept is None else answers_from_kept(kept)


def _bind(answers: Answers, port: int, reach: Reach) -> Server:
    address = answers.management_address
    try:
        return Server(reach.place(address, port))
    except OSError as exc:
        told = "address already in use" if exc.errno == errno.EADDRINUSE else exc.strerror
        raise StartRefused(f"{told}: {address} port {port}") from exc
