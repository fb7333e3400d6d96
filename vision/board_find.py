"""Find a calibration board's corners in a picture, to a few hundredths of a pixel."""

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.boards import DICTIONARY, MARKER_SHARE, Board, LeftOut, View

Float = NDArray[np.float64]

LEAST_CORNERS = 12
_WINDOW_SHARE = {"chessboard": 0.22, "charuco": 0.5 * (1.0 - MARKER_SHARE)}
"""Half of a corner's window over the distance to its nearest neighbour: a wider one takes in the
neighbours, and on a ChArUco board the corners of the markers."""
_MOST_WINDOW = 5
_MANY_MARKERS = 6
_BLUR_PX = 3.5
_UNTIL = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)


def charuco_board(board: Board) -> "cv2.aruco.CharucoBoard":
    """Return OpenCV's own form of a ChArUco board."""
    words = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    size = (board.columns + 1, board.rows + 1)
    return cv2.aruco.CharucoBoard(size, board.square_mm, MARKER_SHARE * board.square_mm, words)


def find_board(
    image: NDArray[np.uint8], board: Board, name: str, *, quick: bool = False
) -> View | LeftOut:
    """Return the view of a board in a picture (BGR or grey), or why it gives none.

    `quick` gives a chessboard up that is not seen at a glance, which a search may take a second
    for: there is another picture soon.
    """
    gray = image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    gray = np.asarray(gray, dtype=np.uint8)
    found = (
        _chessboard(gray, board, quick) if board.pattern == "chessboard" else _charuco(gray, board)
    )
    if isinstance(found, str):
        return LeftOut(name, found)
    points_mm, points_px = found
    blur = _blur_px(gray, points_px)
    if blur > _BLUR_PX:
        return LeftOut(
            name, f"blurred, edges {blur:.1f} px wide: hold still, and focus on the board"
        )
    height, width = gray.shape
    return View(name, points_mm, points_px, (width, height), blur)


def _pitches_px(points_px: Float) -> Float:
    """Return each corner's distance to its nearest neighbour, (n,) pixels."""
    apart = np.linalg.norm(points_px[:, None] - points_px[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    return np.asarray(apart.min(axis=1), dtype=np.float64)


def _refined(gray: NDArray[np.uint8], corners: Float, board: Board) -> Float:
    """Settle corners, each in a window of its own size: a leaning board's far squares are small."""
    halves = np.clip(_WINDOW_SHARE[board.pattern] * _pitches_px(corners), 2, _MOST_WINDOW)
    fine = np.empty((len(corners), 1, 2), dtype=np.float32)
    for half in np.unique(halves.astype(int)):
        these = halves.astype(int) == half
        start = corners[these].astype(np.float32).reshape(-1, 1, 2)
        window = (int(half), int(half))
        fine[these] = cv2.cornerSubPix(gray, start, window, (-1, -1), _UNTIL)
    return np.asarray(fine, dtype=np.float64).reshape(-1, 2)


def _chessboard(gray: NDArray[np.uint8], board: Board, quick: bool) -> tuple[Float, Float] | str:
    size = (board.columns, board.rows)
    how = cv2.CALIB_CB_ADAPTIVE_THRESH | cv2.CALIB_CB_NORMALIZE_IMAGE
    how |= cv2.CALIB_CB_FAST_CHECK if quick else 0
    good, corners = cv2.findChessboardCorners(gray, size, None, how)
    if not good or corners is None:
        return (
            f"no whole board of {size[0]} x {size[1]} inner corners in sight: show all of it with "
            "its white margin, or give its own corners (--corners)"
        )
    return board.points_mm, _refined(gray, np.asarray(corners, np.float64).reshape(-1, 2), board)


def _charuco(gray: NDArray[np.uint8], board: Board) -> tuple[Float, Float] | str:
    detector = cv2.aruco.CharucoDetector(charuco_board(board))
    corners, numbers, _, markers = detector.detectBoard(gray)
    if numbers is None or len(numbers) < LEAST_CORNERS:
        ids = np.asarray([] if markers is None else markers, dtype=np.int32).ravel()
        return _too_little(gray, detector, board, _count(numbers), ids)
    which = np.asarray(numbers).ravel()
    points_px = _refined(gray, np.asarray(corners, np.float64).reshape(-1, 2), board)
    return board.points_mm[which], points_px


def _too_little(
    gray: NDArray[np.uint8],
    detector: "cv2.aruco.CharucoDetector",
    board: Board,
    corners: int,
    ids: NDArray[np.int32],
) -> str:
    """Say why a ChArUco board gives no view, and what to do."""
    if len(np.unique(ids)) < len(ids):
        return "the board is seen twice, as when it moves: hold it still"
    if corners == 0 and len(ids) >= _MANY_MARKERS:
        return (
            f"markers of another board than one of {board.columns} x {board.rows} inner corners "
            "in sight: give its own (--corners)"
        )
    if corners:
        return (
            f"{corners} corners of the board in sight, {LEAST_CORNERS} or more are needed: bring "
            "more of it into the picture"
        )
    if len(ids) == 0 and _mirrored(gray, detector):
        return "the board is mirrored: print it anew, or turn the camera's mirroring off"
    return "no board in sight"


def _count(found: object) -> int:
    return 0 if found is None else int(np.size(found))  # type: ignore[arg-type]


def _mirrored(gray: NDArray[np.uint8], detector: "cv2.aruco.CharucoDetector") -> bool:
    _, numbers, _, _ = detector.detectBoard(np.ascontiguousarray(gray[:, ::-1]))
    return numbers is not None and len(numbers) >= LEAST_CORNERS


def _blur_px(gray: NDArray[np.uint8], corners: Float) -> float:
    """Return how wide the edges at the corners are: range of grey over the steepest step."""
    half = max(4, int(0.45 * float(np.median(_pitches_px(corners)))))
    widths = []
    for x, y in corners[:: max(1, len(corners) // 12)].astype(int):
        patch = gray[max(0, y - half) : y + half + 1, max(0, x - half) : x + half + 1]
        if min(patch.shape) < 5:
            continue
        low, high = np.percentile(patch, [10, 90])
        smooth = cv2.GaussianBlur(patch, (0, 0), 0.8).astype(np.float64)
        dx, dy = np.gradient(smooth, axis=1), np.gradient(smooth, axis=0)
        steep = np.percentile(np.hypot(dx, dy), 98)
        widths.append((high - low) / max(steep, 1e-6) / 2.5066)
    return float(np.median(widths)) if widths else np.inf
