"""Published bin packing instances with known optimum, as restarts onto equal hosts.

f1: Dósa 2007, the extremal instance of 11/9 OPT + 6/9, capacity 100. f2: Martello & Toth, capacity 100. f3: Falkenauer
u120_00 and t60_00, Scholl N1C1W1_B, as listed in BPPLIB (Delorme, Iori & Martello 2018).
"""

from typing import NamedTuple

from staddle.failures.running import Running, Stand

GIB = 2**30


class Packing(NamedTuple):
    name: str
    capacity: int
    optimum: int
    sizes: tuple[int, ...]


def _sizes(text: str) -> tuple[int, ...]:
    found: list[int] = []
    for part in text.split():
        size, _, times = part.partition("x")
        found += [int(size)] * int(times or 1)
    return tuple(found)


PACKINGS = (
    Packing("f1", 100, 9, _sizes("51x6 27x6 26x6 23x12")),
    Packing("f2", 100, 4, _sizes("70 60 50 33x3 11 7 3")),
    Packing(
        "u120_00",
        150,
        48,
        _sizes(
            "98x3 96x2 94 93x2 92 91x2 90 87 86 85x2 84x5 83x2 82x2 81 80x3 79x2 78x4 76 74x2 73x4 72 71 70x3 69x3 67 66 64 "
            "62x2 60x2 59 58x3 57x4 55x3 50 49x3 47 46x2 45x2 44x2 43x4 42x5 41x3 39x2 38x3 37 36x3 35 33x3 32x2 30x3 29 28 "
            "27x2 26 25x2 24 23x2 20"
        ),
    ),
    Packing(
        "t60_00",
        1000,
        20,
        _sizes(
            "495 474 473 472 466 450 445 444 439 430 419 414 410 395 372 370 366x3 363 361 357 355 351 350x2 347 320 315 307 "
            "303 299 298x2 292 288 287 283 275x2 274 273x2 272x2 271 269x2 268 263 262 261 259 258 255 254 252x3 251"
        ),
    ),
    Packing(
        "N1C1W1_B",
        100,
        31,
        _sizes(
            "100 99 97x3 93x2 92x2 88 83x2 79 76x2 75 72 71 70 69 67 66 63 62x2 61x2 51 50 44x2 43x2 40 39 37x2 30 23 20 19 18 "
            "17 15 14 13x2 12 8x2"
        ),
    ),
)


def onto_equal_hosts(packing: Packing, hosts: int) -> tuple[list[Running], list[Stand]]:
    """All items on one large host that fails, and so many empty ones of the capacity."""
    machines = [
        Running(name=f"m{n}", host="fails", memory_bytes=size * GIB, vcpus=1)
        for n, size in enumerate(packing.sizes)
    ]
    large = Stand(name="fails", memory_bytes=sum(packing.sizes) * GIB, cores=999, vcpu_per_core=4)
    return machines, [
        large,
        *(
            Stand(name=f"h{n}", memory_bytes=packing.capacity * GIB, cores=99, vcpu_per_core=4)
            for n in range(hosts)
        ),
    ]
