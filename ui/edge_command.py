"""`edge`: a bore's edge against the spindle axis, from pictures down the bore."""

from math import sqrt
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer

from readings import BadInputError
from ui.output import put_json
from ui.pictures import look_at_each

TOPS = {"right": 0.0, "back": 90.0, "left": 180.0, "front": 270.0}
"""Where the picture's top points, as an angle from +X, anticlockwise seen from above."""
MOST_PICTURES = 36


def edge(
    pictures: Annotated[
        list[Path], typer.Argument(help="Pictures down the bore, one an orientation.")
    ],
    camera: Annotated[Path, typer.Option(help="The camera's model, from `camera calibrate`.")],
    diameter_mm: Annotated[
        float, typer.Option("--diameter-mm", help="Of the edge, as measured: bore or chamfer.")
    ],
    at: Annotated[
        str | None,
        typer.Option(
            help="Spindle's turn at each picture, degrees anticlockwise seen from above: "
            "0,180. Even steps of a whole turn where not given."
        ),
    ] = None,
    top: Annotated[
        str, typer.Option(help="Where the first picture's top points: right, back, left, front.")
    ] = "back",
    as_json: Annotated[bool, typer.Option("--json", help="Strict JSON on stdout.")] = False,
) -> None:
    """Tell how far a bore's edge lies from the spindle axis: near enough to sweep it then.

    The camera rides on the spindle and looks down. What is found is the edge, not the bore.
    """
    from calibration.camera import load_camera
    from sweeps import EdgeOffset, offset_from_edges
    from vision.bore_edge import find_bore_edge

    turned_deg = _turns(at, len(pictures))
    up_deg = _top(top)
    model = load_camera(camera)
    sights = look_at_each(pictures, lambda image: find_bore_edge(image, model, diameter_mm))
    found = offset_from_edges(
        np.array([sight.centre_mm for sight in sights]),
        np.radians(turned_deg),
        np.array([sight.covariance_mm2 for sight in sights]),
        radius_mm=diameter_mm / 2,
        distance_mm=float(np.median([sight.distance_mm for sight in sights])),
    )
    if not isinstance(found, EdgeOffset):
        raise BadInputError(found.reason)
    spin = np.radians(up_deg - 90.0)
    turn = np.array([[np.cos(spin), -np.sin(spin)], [np.sin(spin), np.cos(spin)]])
    x, y = (turn @ [found.x_mm, found.y_mm]).tolist()
    u_x, u_y = np.sqrt(np.diag(turn @ found.covariance_mm2 @ turn.T)).tolist()
    told: dict[str, Any] = {
        "what": found.label,
        "offset_x_mm": x,
        "offset_y_mm": y,
        "u_x_mm": u_x,
        "u_y_mm": u_y,
        "u_square_mm": found.u_square_mm,
        "rms_mm": found.rms_mm,
        "edges": [
            {
                "file": path.name,
                "turned_deg": degrees,
                "centre_px": sight.centre_px.tolist(),
                "radius_px": sight.radius_px,
                "sigma_px": sight.sigma_px,
                "chamfer_radius_px": sight.chamfer_radius_px,
            }
            for path, degrees, sight in zip(pictures, turned_deg, sights, strict=True)
        ],
    }
    if as_json:
        put_json(told, indent=True)
        return
    typer.echo(
        f"Edge, not bore: its centre lies {_side(x, 'right', 'left')} and "
        f"{_side(y, 'to the back', 'to the front')} of the spindle axis ({sqrt(x**2 + y**2):.3f})."
    )
    typer.echo(
        f"Uncertainty (k = 1): X {u_x:.3f} mm, Y {u_y:.3f} mm; of it {found.u_square_mm:.3f} mm "
        "for an edge 0.1 degree out of square."
    )
    typer.echo(
        f"Move the work {_side(-x, 'right', 'left')} and {_side(-y, 'to the back', 'to the front')}"
        ", then sweep the bore itself."
    )


def _side(mm: float, plus: str, minus: str) -> str:
    return f"{abs(mm):.3f} mm {plus if mm >= 0 else minus}"


def _top(top: str) -> float:
    if top not in TOPS:
        msg = f"--top is {top!r}: give right, back, left or front."
        raise BadInputError(msg)
    return TOPS[top]


def _turns(at: str | None, count: int) -> list[float]:
    """Return the spindle's turn at each picture, degrees.

    Raises
    ------
    BadInputError
        If they are no numbers or not one a picture.
    """
    if not 2 <= count <= MOST_PICTURES:
        msg = (
            f"{count} picture(s) were given: 2 to {MOST_PICTURES} are needed, the spindle turned "
            "between them."
        )
        raise BadInputError(msg)
    if at is None:
        return [360.0 * k / count for k in range(count)]
    try:
        turned = [float(word) for word in at.split(",")]
    except ValueError as error:
        msg = f"--at {at!r} is no list of degrees: give one a picture, like 0,180."
        raise BadInputError(msg) from error
    if len(turned) != count or not np.isfinite(turned).all():
        msg = f"--at has {len(turned)} angles for {count} pictures: give one a picture."
        raise BadInputError(msg)
    return turned
