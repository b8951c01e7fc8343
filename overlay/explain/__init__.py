"""What of a difference the two cameras could explain, and which differences stay beyond that.

``docs/progress.md`` says how it is worked out and what it is worth.
"""

from overlay.explain.beyond import beyond, beyond_camera
from overlay.explain.parts import camera_parts
from overlay.explain.wording import camera_lines, camera_sentence, cameras_note

__all__ = ["beyond", "beyond_camera", "camera_lines", "camera_parts", "camera_sentence", "cameras_note"]
