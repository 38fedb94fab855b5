"""What is known of a photo's camera and of the frame's squareness before its rows speak."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recon.geometry.arrays import FloatArray
from recon.geometry.camera import PARAMETERS, Camera

FOCAL_SPREAD_UNKNOWN = 0.45  # of ln f about 1.0 x the long side: phones and zooms, 24 to 70 mm equivalent
FOCAL_SPREAD_EXIF = 0.04  # EXIF rounds to whole mm, crops and stabilisation add a few per cent
LENS_SPREAD = (
    0.06  # of k1 and k2, of phone lenses after the maker's own correction; common practice, no source
)
# Of the principal point about the middle, as a part of the long side.  Where Exif's size and shape agree with
# the picture's it was not cropped: makers centre their lenses to about a hundredth (this project's choice).
# Else it may be a crop: one that takes up to a quarter off one side shifts the middle by up to an eighth,
# evenly spread: 0.08.
POINT_SPREAD_WHOLE, POINT_SPREAD_CROPPED = 0.015, 0.08
RACK_SPREAD = np.radians(1.4)  # of the angles between a frame's axes about 90 degrees; this project's choice
COUNT = 8  # of prior residuals: f, k1, k2, cx, cy, and three angles between axes


@dataclass(frozen=True)
class CameraPrior:
    """Normal priors, independent of each other, of a camera's inner values and of the frame's squareness.

    Attributes
    ----------
    focal : focal length expected, px.
    focal_spread : standard error of ln f.
    point : (2,) principal point expected, px.
    point_spread : its standard error along x and y, px.
    """

    focal: float
    focal_spread: float
    point: tuple[float, float]
    point_spread: float

    def residuals(self, camera: Camera) -> FloatArray:
        """How far a camera is from what was expected, in standard errors.

        Parameters
        ----------
        camera : Camera

        Returns
        -------
        (8,) of ln f, k1, k2, cx, cy, and of the angles between the axes x y, x z, y z.
        """
        return np.array(
            [
                np.log(camera.f / self.focal) / self.focal_spread,
                camera.k1 / LENS_SPREAD,
                camera.k2 / LENS_SPREAD,
                (camera.cx - self.point[0]) / self.point_spread,
                (camera.cy - self.point[1]) / self.point_spread,
                *(camera.rack / RACK_SPREAD),
            ]
        )

    def jacobian(self, camera: Camera) -> FloatArray:
        """Derivatives of :meth:`residuals` by the parameters of :func:`recon.geometry.camera.stepped`.

        Parameters
        ----------
        camera : Camera

        Returns
        -------
        (8, 14).  Those of the angles are taken at a square frame.
        """
        J = np.zeros((COUNT, PARAMETERS))
        J[0, 0] = 1 / (self.focal_spread * camera.f)
        J[1, 1] = J[2, 2] = 1 / LENS_SPREAD
        J[3, 9] = J[4, 10] = 1 / self.point_spread
        J[5, 11] = J[6, 12] = J[7, 13] = 2 / RACK_SPREAD  # a shear turns both axes
        return J


def camera_prior(size: tuple[int, int], focal_px: float | None) -> CameraPrior:
    """The prior of a photo's camera.

    Parameters
    ----------
    size : width, height, px
    focal_px : focal length from EXIF, px, given only where the picture was not cropped; else None

    Examples
    --------
    >>> camera_prior((1600, 1200), None).point, camera_prior((1600, 1200), 1300.0).focal
    ((799.5, 599.5), 1300.0)
    """
    long_side = max(size)
    middle = ((size[0] - 1) / 2, (size[1] - 1) / 2)
    if focal_px:
        return CameraPrior(focal_px, FOCAL_SPREAD_EXIF, middle, POINT_SPREAD_WHOLE * long_side)
    return CameraPrior(float(long_side), FOCAL_SPREAD_UNKNOWN, middle, POINT_SPREAD_CROPPED * long_side)


def robust_but_priors(priors: int, scale: float):
    """A loss for SciPy's least_squares: Cauchy's, but the last few residuals stay squared.

    A prior inside a robust loss costs almost nothing once it is missed by far, and impossible cameras pass.

    Parameters
    ----------
    priors : how many residuals at the end are priors
    scale : residual from which the others count less, in standard errors

    Examples
    --------
    >>> robust_but_priors(1, 2.0)(np.array([0.0, 4.0]))[0].tolist()
    [0.0, 4.0]
    """

    def loss(z: FloatArray) -> FloatArray:
        rho = np.empty((3, len(z)))
        data = z[:-priors] / scale**2
        rho[0, :-priors] = scale**2 * np.log1p(data)
        rho[1, :-priors] = 1 / (1 + data)
        rho[2, :-priors] = -1 / (1 + data) ** 2 / scale**2
        rho[:, -priors:] = z[-priors:], np.ones(priors), np.zeros(priors)
        return rho

    return loss
