"""How fast clips are read and results are written, and how large they get.

    python studies/video.py [--quick]

Writes docs/studies/video.md. The pictures are made here: a smooth moving scene with grain, over it bright thin lines
and small high-contrast blocks, which is what encoding a comparison meets. Figures depend on the machine and on what
else it does; they are for choosing between settings, not promises.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from overlay.settings.video import WriterSettings
from overlay.video import VideoWriter, open_clip

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "video.md"
WIDTH, HEIGHT = 1080, 1920


class Scene:
    """Pictures of 1080×1920 px, cheap enough not to be what is measured."""

    def __init__(self, n_grain: int = 8) -> None:
        random = np.random.default_rng(0)
        coarse = random.integers(40, 200, (HEIGHT // 60, WIDTH // 60, 3), np.uint8)
        self.ground = cv2.resize(coarse, (WIDTH + 200, HEIGHT), interpolation=cv2.INTER_CUBIC)
        self.grain = [random.normal(0, 2.0, (HEIGHT, WIDTH, 1)).astype(np.int8) for _ in range(n_grain)]

    def picture(self, number: int) -> np.ndarray:
        left = int(60 + 50 * np.sin(number / 15))
        image = self.ground[:, left : left + WIDTH].astype(np.int16) + self.grain[number % len(self.grain)]
        image = np.ascontiguousarray(np.clip(image, 0, 255).astype(np.uint8))
        angle = number / 20
        centre = np.array([540, 900])
        for limb in range(8):
            tip = centre + (300 * np.array([np.cos(angle + limb), np.sin(angle + limb)])).astype(int)
            cv2.line(image, tuple(map(int, centre)), tuple(map(int, tip)), (255, 200, 40), 5, cv2.LINE_AA)
            cv2.circle(image, tuple(map(int, tip)), 9, (40, 220, 255), -1, cv2.LINE_AA)
        cv2.putText(
            image, f"frame {number}", (40, 1850), cv2.FONT_HERSHEY_SIMPLEX, 2.0, (255, 255, 255), 4, cv2.LINE_AA
        )
        return image


def presets(images: list[np.ndarray], folder: Path) -> list[str]:
    """One row a way of encoding: the plain presets, then what is in use."""
    own = WriterSettings()
    ways = {
        name: replace(own, preset=name, x264_params="") for name in ("ultrafast", "superfast", "veryfast", "medium")
    }
    ways[f"in use: {own.preset} with {own.x264_params}"] = own
    rows = []
    for name, settings in ways.items():
        path = folder / "written.mp4"
        start = time.process_time()
        with VideoWriter(path, WIDTH, HEIGHT, 60, settings=settings) as writer:
            for image in images:
                writer.write(image)
        cpu_ms = 1000 * (time.process_time() - start) / len(images)
        with open_clip(path) as reader:
            errors = [np.mean((f.image.astype(np.float32) - images[f.index]) ** 2) for f in reader.frames()]
        db = 10 * np.log10(255**2 / np.mean(errors))
        rate = path.stat().st_size * 8 / len(images) * 60 / 1e6
        rows.append(f"| {name} | {cpu_ms:.0f} | {rate:.1f} | {db:.1f} |")
        print(rows[-1], flush=True)
    return rows


def encode_as(path: Path, images: Iterator[np.ndarray], codec: str, pixel_format: str, options: dict[str, str]) -> Path:
    import av

    av.logging.set_level(None)
    with av.open(str(path), "w") as container:
        stream = container.add_stream(codec, rate=60, options=options)
        stream.width, stream.height, stream.pix_fmt = WIDTH, HEIGHT, pixel_format
        for image in images:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="rgb24")))
        container.mux(stream.encode(None))
    return path


def cpu_ms(work: Callable[[], int]) -> float:
    """CPU time of all threads for each of the pictures that ``work`` counts, ms."""
    start = time.process_time()
    n = work()
    return 1000 * (time.process_time() - start) / n


def reading(path: Path, label: str) -> str:
    with open_clip(path) as reader:
        opening = cpu_ms(lambda: 1 if open_clip(path) else 0)
        full = cpu_ms(lambda: sum(1 for _ in reader.frames()))
        small = cpu_ms(lambda: sum(1 for _ in reader.frames(max_side=512)))
        times = np.random.default_rng(1).uniform(0, reader.clip.duration_s, 10)
        jump = cpu_ms(lambda: sum(1 for time_s in times if reader.frame_at(float(time_s))))
    with open_clip(path, rotation_deg=90) as reader:
        turned = cpu_ms(lambda: sum(1 for _ in reader.frames()))
    row = f"| {label} | {opening:.0f} | {full:.1f} | {small:.1f} | {turned:.1f} | {jump:.0f} |"
    print(row, flush=True)
    return row


def peak_mb(code: str, *arguments: str) -> float:
    """Peak memory of a fresh process that runs ``code``, MB."""
    # Not getrusage: its peak is handed on from the process that started this one.
    code += "\nprint(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))"
    done = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True)
    return int(done.stdout.split()[-1]) / 1024


READ = """
import sys
from overlay.video import open_clip, prefetch
with open_clip(sys.argv[1]) as reader, prefetch(reader.frames()) as ahead:
    n = sum(1 for _ in ahead)
assert n == reader.clip.n_frames
"""
COPY = """
import sys
from overlay.video import VideoWriter, open_clip, prefetch
with open_clip(sys.argv[1]) as reader, prefetch(reader.frames(0.0, 4.0)) as ahead:
    with VideoWriter(sys.argv[2], reader.clip.width, reader.clip.height, 60) as writer:
        for frame in ahead:
            writer.write(frame.image)
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer pictures; nothing is written")
    quick = parser.parse_args().quick
    scene = Scene()
    n_preset, n_read, long_s = (24, 30, 6) if quick else (40, 60, 60)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        images = [scene.picture(i) for i in range(n_preset)]
        written = presets(images, folder)
        del images

        def pictures(n: int = n_read) -> Iterator[np.ndarray]:
            return (scene.picture(i) for i in range(n))

        os.environ.setdefault("SVT_LOG", "0")
        kinds = [
            ("H.264", "libx264", "yuv420p", "mp4", {"preset": "veryfast", "crf": "18"}),
            ("HEVC 10-bit", "libx265", "yuv420p10le", "mp4", {"preset": "ultrafast", "x265-params": "log-level=none"}),
            ("VP9", "libvpx-vp9", "yuv420p", "webm", {"deadline": "realtime", "cpu-used": "8", "crf": "24"}),
            ("AV1", "libsvtav1", "yuv420p", "mp4", {"preset": "12", "crf": "30"}),
            ("MJPEG", "mjpeg", "yuvj420p", "mov", {"qmin": "3", "qmax": "3"}),
        ]
        read = [
            reading(encode_as(folder / f"{codec}.{suffix}", pictures(), codec, fmt, options), label)
            for label, codec, fmt, suffix, options in kinds
        ]
        few = [scene.picture(i) for i in range(24)]
        many = (few[i % len(few)] for i in range(60 * long_s))
        long = encode_as(folder / "long.mp4", many, "libx264", "yuv420p", {"preset": "ultrafast", "crf": "20"})
        del few
        start = time.process_time()
        with open_clip(long) as reader:
            n_long = reader.clip.n_frames
        opening_ms = 1000 * (time.process_time() - start)
        idle = peak_mb("import overlay.video, av, cv2")
        reads = peak_mb(READ, str(long))
        copies = peak_mb(COPY, str(long), str(folder / "copy.mp4"))
    text = f"""# Reading and writing video: speed, size, memory

Made by `python studies/video.py{" --quick" if quick else ""}` with pictures of {WIDTH}×{HEIGHT} px, on {os.cpu_count()}
cores. Times are CPU time of all threads together, so other work on the machine changes them little; with two cores free
the time on the clock is about half. Nothing is asserted from these figures; they are for choosing settings.

## Writing (x264, constant rate factor {WriterSettings().crf}, 60 pictures a second)
| preset | CPU ms a picture | Mbit/s | PSNR, dB |
|---|---|---|---|
{chr(10).join(written)}

## Reading, CPU ms
| codec | opening | a picture, full size | longest side 512 px | turned by 90° | one frame anywhere |
|---|---|---|---|---|---|
{chr(10).join(read)}

Opening walks all packets, decodes one picture and hashes the file; for {n_long} frames ({long_s} s) it took
{opening_ms:.0f} ms. Jumps go to a key frame and decode on; clips made here have few key frames, so this is a hard case.

## Peak memory of a process, MB
libraries loaded: {idle:.0f} · streaming {long_s} s of H.264 with the default read-ahead: {reads:.0f} · reading and
writing at the same time: {copies:.0f}
"""
    if not quick:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        OUT.write_text(text, "utf-8")
    print(text)


if __name__ == "__main__":
    main()
