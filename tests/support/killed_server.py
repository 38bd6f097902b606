"""Run as a program: has a packer at work, says the number of its process, and is killed."""

from __future__ import annotations

import os
import signal

from stillflow.cli.web.carrying import Packer


def number(_: object) -> int:
    return os.getpid()


if __name__ == "__main__":
    from killed_server import number as named

    os.write(1, f"{Packer(yields=0).run(named)}\n".encode())
    os.kill(os.getpid(), signal.SIGKILL)
