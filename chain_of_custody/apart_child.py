"""The child of `apart`: reads one file from its input, answers on its output, and ends."""

import dataclasses
import json
import sys

from chain_of_custody import apart, uploads


def limit_itself() -> None:
    """Bound memory and processor time where the system can; Windows has the parent's clock only."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (apart.MEMORY, apart.MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (apart.SECONDS, apart.SECONDS))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def answer(verb: str, data: bytes, rest: list[str]) -> bytes:
    """Return what the parent reads: a word in a line of its own, then bytes."""
    try:
        if verb == "inspect":
            return b"found\n" + json.dumps(dataclasses.asdict(uploads.inspect(data))).encode()
        return b"found\n" + uploads.draw(data, int(rest[0]))
    except uploads.UploadRefused as refused:
        return b"refused\n" + json.dumps([refused.code, refused.text]).encode()


if __name__ == "__main__":
    limit_itself()
    sys.stdout.buffer.write(answer(sys.argv[1], sys.stdin.buffer.read(), sys.argv[2:]))
