"""A process that stores organisations, each with its event, and prints a key only when its commit returned.

Words: NAME COUNT [THREADS]. COUNT 0 goes on until killed.
"""

from __future__ import annotations

import sys
from itertools import count
from threading import Thread

import django


def main() -> None:
    django.setup()
    name, number = sys.argv[1], int(sys.argv[2])
    threads = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    workers = [Thread(target=write, args=(f"{name}-{n}", number)) for n in range(threads)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()


def write(name: str, number: int) -> None:
    from facility import events, services
    from facility.models import Organisation

    for n in range(number) if number else count():
        key = f"{name}-{n}"
        services.add(Organisation(key=key, name=f"Organisation {key}"), by=events.system("writer"))
        sys.stdout.write(key + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
