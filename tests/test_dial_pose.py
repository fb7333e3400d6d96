"""The plane's pose: parallax, refinement on marks, hidden marks, honest covariance."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration import CameraModel
from vision.dial_pose import (
    Evidence,
    PlanePose,
    guessed_camera,
    pose_jacobian,
    refine_pose,
    rotation_matrix,
)

CAMERA = CameraModel(1280, 720, 1400.0, 1400.0, 639.5, 359.5, -0.1, 0.03)
TRUE = PlanePose(CAMERA, rotation_matrix(np.array([0.35, 0.2, 0.7])), np.array([8.0, -4.0, 160.0]))
NOISE_PX = 0.05


def marks(count=80, radius=22.0):
    angle = 2 * np.pi * np.arange(count) / count
    out = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    return out, np.stack([-out[:, 1], out[:, 0]], axis=1), radius


def seen(rng, pose=TRUE, noise=NOISE_PX, wrong=()):
    out, side, radius = marks()
    points = np.concatenate([radius * 0.98 * out, radius * 0.92 * out, radius * out])
    ways = np.concatenate([side, side, out])
    along = pose.project(points + 1e-3 * ways) - pose.project(points)
    along /= np.linalg.norm(along, axis=1)[:, None]
    error = rng.normal(0, noise, len(points))
    group = np.concatenate([np.arange(80), np.arange(80), np.arange(80) + 80])
    error[np.isin(group, wrong)] += 3.0
    pixels = pose.project(points) + error[:, None] * along
    return Evidence(points, pixels, along, np.full(len(points), noise), group, group >= 80)


def off_px(pose):
    out, _, radius = marks()
    return float(np.abs(pose.project(radius * out) - TRUE.project(radius * out)).max())


def start(scale=1.0):
    return TRUE.moved(scale * np.array([0.03, -0.02, 0.01, 0.004, -0.003, 0.01]))


def test_jacobian_is_the_derivative():
    rng = np.random.default_rng(0)
    points = rng.uniform(-20, 20, (9, 2))
    along = rng.normal(size=(9, 2))
    along /= np.linalg.norm(along, axis=1)[:, None]
    jacobian = pose_jacobian(TRUE, points, along, 8)
    for j in range(8):
        step = np.zeros(8)
        step[j] = 1e-6
        moved = TRUE.moved(step).project(points) - TRUE.moved(-step).project(points)
        numeric = np.sum(moved * along, axis=1) / 2e-6
        np.testing.assert_allclose(jacobian[:, j], numeric, rtol=1e-4, atol=1e-2)


def test_projection_agrees_with_opencv():
    """Outside truth: OpenCV's projectPoints with the pose's rotation vector."""
    out, _, radius = marks()
    vector, _ = cv2.Rodrigues(TRUE.rotation)
    solid = np.column_stack([radius * out, np.full(len(out), -1.5)])
    expected, _ = cv2.projectPoints(
        solid, vector, TRUE.translation, CAMERA.matrix, CAMERA.distortion
    )
    np.testing.assert_allclose(TRUE.project(radius * out, -1.5), expected.reshape(-1, 2), atol=1e-8)


def test_locate_undoes_project_at_any_height():
    points = np.random.default_rng(2).uniform(-20, 20, (30, 2))
    for height in (0.0, -1.5):
        np.testing.assert_allclose(
            TRUE.locate(TRUE.project(points, height), height), points, atol=1e-7
        )


def test_direction_is_free_of_parallax_and_the_tip_is_not():
    """DESIGN: planes z = 0 and z map by a shift and a scaling, which keep directions."""
    line = np.array([[-5.0, -3.0], [14.0, 9.0]])
    on_scale = TRUE.locate(TRUE.project(line, -1.5))
    was, now = line[1] - line[0], on_scale[1] - on_scale[0]
    turned = np.arctan2(was[0] * now[1] - was[1] * now[0], was @ now)
    assert abs(turned) < 1e-10
    tip = np.arctan2(*on_scale[1][::-1]) - np.arctan2(9.0, 14.0)
    assert abs(tip) > 0.005


def test_marks_fix_the_pose():
    fit = refine_pose(start(), seen(np.random.default_rng(4)), free_camera=False)
    assert off_px(fit.pose) < 0.06
    assert off_px(start()) > 3.0


def test_wrong_marks_are_dropped_whole():
    wrong = np.arange(10, 30)
    fit = refine_pose(start(), seen(np.random.default_rng(4), wrong=wrong), free_camera=False)
    assert off_px(fit.pose) < 0.1
    group = seen(np.random.default_rng(4)).group
    assert np.all(fit.weight[np.isin(group, wrong)] == 0)
    assert np.mean(fit.weight[~np.isin(group, wrong)] > 0.3) > 0.95


def test_covariance_tells_the_scatter():
    turns, sigmas = [], []
    for seed in range(120):
        evidence = seen(np.random.default_rng(seed))
        fit = refine_pose(TRUE, evidence, free_camera=False)
        turn = TRUE.rotation.T @ fit.pose.rotation
        turns.append(np.arctan2(turn[1, 0], turn[0, 0]))
        sigmas.append(np.sqrt(fit.covariance[2, 2]))
    assert 0.8 < np.std(turns) / np.mean(sigmas) < 1.25


def test_unknown_camera_is_found_with_the_pose():
    guess = guessed_camera(1280, 720)
    evidence = seen(np.random.default_rng(6), pose=replace(TRUE, camera=replace(CAMERA, k2=0.0)))
    zoom = guess.fx / CAMERA.fx
    rough = replace(start(0.5), camera=guess)
    rough = replace(rough, translation=rough.translation * np.array([1.0, 1.0, zoom]))
    fit = refine_pose(rough, evidence, free_camera=True, rounds=20)
    fit = refine_pose(fit.pose, evidence, free_camera=True, rounds=20)
    assert fit.pose.camera.fx == pytest.approx(1400, rel=0.1)
    assert np.median(np.abs(fit.residual_px)) < 0.06


def test_mirrored_tilt_is_the_other_answer():
    mirrored = TRUE.mirrored()
    assert mirrored.tilt_rad() == pytest.approx(TRUE.tilt_rad(), abs=1e-9)
    assert np.degrees(np.arccos(mirrored.rotation[:, 2] @ TRUE.rotation[:, 2])) > 30
    np.testing.assert_allclose(mirrored.mirrored().rotation, TRUE.rotation, atol=1e-9)
