"""How the bodies are turned: roll, pitch and yaw of the secondary in the orbiting frame, the primary's pole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..bodies.averaged import free_turns
from ..constants import DAY_S, HOUR_S
from ..kinds import takes
from ..motion.trajectory import Trajectory
from ..vectors import rotation
from .averages import mean, spans, squared_hann
from .window import check_samples

TURNED_DEG = 90.0
"""Beyond it the secondary has turned over: its other end faces the primary, or its pole the other side."""


@dataclass(frozen=True)
class AttitudeHistory:
    """Attitude of the secondary at n samples and what it amounts to.

    roll_deg, pitch_deg, yaw_deg (n,): 1-2-3 sequence from the orbiting frame (x from the secondary to the primary, z
    along r x v) to the body frame, unwrapped.  Yaw counts from that end of the long axis which is nearer to the primary
    at the first sample, for a triaxial body looks the same either way.  The sequence is singular at pitch +-90 deg; of
    the two triples that stand for one attitude the one nearer to the sample before is taken, so that pitch can pass
    90 deg and none of the three jumps.
    libration_max_deg, roll_max_deg, pitch_max_deg: greatest |yaw|, |roll|, |pitch|, refined between samples; 180, the
    farthest that a body can be turned, for one that turns over and over.
    long_axis_misalignment_max_deg, pole_tilt_max_deg: greatest of axis_angles_deg over the samples; lost_lock: at one
    of them. tumbling: roll or pitch beyond 90 deg, or yaw beyond 180 deg (the body has turned against the primary;
    between 90 and 180 it may still come back), of those that something locks: a ball cannot tumble; tumbling_reason
    says which came first and when, else it is None.
    secondary_spin_period_h: 2 pi over the mean rate about r x v; None when the secondary does not turn.
    primary_pole_wobble_deg: greatest angle between the primary's z axis and its mean direction.
    """

    time_s: np.ndarray
    roll_deg: np.ndarray
    pitch_deg: np.ndarray
    yaw_deg: np.ndarray
    roll_max_deg: float
    pitch_max_deg: float
    libration_max_deg: float
    long_axis_misalignment_max_deg: float
    pole_tilt_max_deg: float
    lost_lock: bool
    tumbling: bool
    tumbling_reason: str | None
    secondary_spin_period_h: float | None
    primary_pole_wobble_deg: float


@takes(trajectory="Trajectory")
def attitude(trajectory: Trajectory) -> AttitudeHistory:
    """Roll, pitch, yaw and spin of the secondary and wobble of the primary's pole.  Errors: InputError."""
    check_samples(trajectory)
    orbiting = orbiting_frame(trajectory.position_m, trajectory.velocity_m_s)
    body = rotation_matrices(trajectory.attitude2)
    angles = np.degrees(_continued(*_roll_pitch_yaw(np.einsum("kia,kib->kab", orbiting, body))))
    roll, pitch, yaw = angles
    roll_max, pitch_max, yaw_max = (min(_greatest(angle), 180.0) for angle in angles)
    free = free_turns(trajectory.system.secondary.inertia_kg_m2)
    reason = _tumbling_reason(trajectory.time_s, angles, free)
    long_axis, tilt = (float(angle.max()) for angle in axis_angles_deg(trajectory))
    return AttitudeHistory(
        trajectory.time_s,
        roll,
        pitch,
        yaw,
        roll_max,
        pitch_max,
        yaw_max,
        long_axis,
        tilt,
        lost_lock(long_axis, tilt),
        reason is not None,
        reason,
        _spin_period_h(trajectory, orbiting, body),
        _wobble_deg(trajectory.time_s, rotation_matrices(trajectory.attitude1)[:, :, 2]),
    )


def axis_angles_deg(trajectory: Trajectory) -> tuple[np.ndarray, np.ndarray]:
    """(n,) of the secondary's long axis from the line of centres, and of its short axis from the orbit normal, deg.

    The long axis counts from that end which is nearer to the primary at the sample nearest to t0.  An axis that a round
    body has not, since nothing locks its turn (bodies.averaged.free_turns), is never off: 0.
    """
    orbiting = orbiting_frame(trajectory.position_m, trajectory.velocity_m_s)
    body = rotation_matrices(trajectory.attitude2)
    facing = np.einsum("ki,ki->k", orbiting[:, :, 0], body[:, :, 0])
    upright = np.einsum("ki,ki->k", orbiting[:, :, 2], body[:, :, 2])
    facing = facing * (-1.0 if facing[np.argmin(np.abs(trajectory.time_s))] < 0.0 else 1.0)
    roll, _, yaw = free_turns(trajectory.system.secondary.inertia_kg_m2)
    cosines = np.where(yaw, 1.0, facing), np.where(roll, 1.0, upright)
    return tuple(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))) for cosine in cosines)


def lost_lock(long_axis_deg, tilt_deg):
    """Whether the secondary has turned over at these angles of its axes, or with these as the greatest of a window."""
    return (long_axis_deg > TURNED_DEG) | (tilt_deg > TURNED_DEG)


def rotation_matrices(quaternions: np.ndarray) -> np.ndarray:
    """(n, 3, 3) rotation matrices, body -> inertial, of (n, 4) quaternions, scalar first, of any length."""
    return np.ascontiguousarray(rotation(quaternions.T).transpose(2, 0, 1))


def orbiting_frame(position_m: np.ndarray, velocity_m_s: np.ndarray) -> np.ndarray:
    """(n, 3, 3) whose columns are the orbiting frame's axes in the inertial frame."""
    x = -position_m / np.linalg.norm(position_m, axis=1)[:, None]
    z = np.cross(position_m, velocity_m_s)
    z = z / np.linalg.norm(z, axis=1)[:, None]
    return np.stack([x, np.cross(z, x), z], axis=-1)


def _roll_pitch_yaw(b: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Principal angles, rad, of (n, 3, 3) body -> orbiting frame, b = X(roll) Y(pitch) Z(yaw)."""
    pitch = np.arctan2(b[:, 0, 2], np.hypot(b[:, 0, 0], b[:, 0, 1]))
    return np.arctan2(-b[:, 1, 2], b[:, 2, 2]), pitch, np.arctan2(-b[:, 0, 1], b[:, 0, 0])


def _continued(roll: np.ndarray, pitch: np.ndarray, yaw: np.ndarray) -> np.ndarray:
    """(3, n) the same attitudes without jumps: (a, b, c) and (a + pi, pi - b, c + pi) are the same rotation."""
    if np.abs(yaw[0]) > 0.5 * np.pi:
        yaw = yaw + np.pi
    principal, other = np.array([roll, pitch, yaw]), np.array([roll + np.pi, np.pi - pitch, yaw + np.pi])
    stay = np.abs(_wrapped(principal[:, 1:] - principal[:, :-1])).sum(axis=0)
    change = np.abs(_wrapped(other[:, 1:] - principal[:, :-1])).sum(axis=0)
    changed = np.cumsum(np.insert(change < stay, 0, False)) % 2 == 1
    angles = np.unwrap(np.where(changed, other, principal), axis=1)
    return angles + (_wrapped(angles[:, :1]) - angles[:, :1])


def _wrapped(angle: np.ndarray) -> np.ndarray:
    return np.remainder(angle + np.pi, 2.0 * np.pi) - np.pi


def _greatest(angle: np.ndarray) -> float:
    """Greatest |angle|: top of the parabola through the greatest sample and its neighbours (the ends as they are)."""
    size = np.abs(angle)
    k = int(np.argmax(size))
    if 0 < k < len(size) - 1:
        left, top, right = np.copysign(1.0, angle[k]) * angle[k - 1 : k + 2]
        bend = left - 2.0 * top + right
        return float(top - (right - left) ** 2 / (8.0 * bend)) if bend < 0.0 else float(top)
    return float(size[k])


def _tumbling_reason(time_s: np.ndarray, angles: np.ndarray, free: np.ndarray) -> str | None:
    """Which of roll, pitch and yaw (3, n) first leaves its limit, and when; one that nothing locks (3,) has none."""
    limits = [
        (angle, name, limit)
        for angle, name, limit, unlocked in zip(
            angles, ("roll", "pitch", "yaw"), (90.0, 90.0, 180.0), free, strict=True
        )
        if not unlocked
    ]
    first = [(int(np.argmax(np.abs(a) > limit)), name, limit) for a, name, limit in limits if np.any(np.abs(a) > limit)]
    if not first:
        return None
    k, name, limit = min(first)
    return f"{name} beyond {limit:.0f} deg at {time_s[k] / DAY_S:+.2f} d"


def _spin_period_h(trajectory: Trajectory, orbiting: np.ndarray, body: np.ndarray) -> float | None:
    """From the smoothly weighted mean of the inertial rate's component along r x v."""
    along = np.einsum("ki,kij,kj->k", orbiting[:, :, 2], body, trajectory.rate2_rad_s)
    rate = abs(float(mean(along, squared_hann(trajectory.time_s))))
    return 2.0 * np.pi / rate / HOUR_S if rate > 1e-12 else None


def _wobble_deg(time_s: np.ndarray, pole: np.ndarray) -> float:
    """Greatest angle between (n, 3) unit vectors and their mean; from the chord, exact for small ones too."""
    middle = mean(pole, spans(time_s))
    chord = np.linalg.norm(pole - middle / np.linalg.norm(middle), axis=1).max()
    return float(np.degrees(2.0 * np.arcsin(min(0.5 * chord, 1.0))))
