"""How much light usual wall surfaces give back."""

from __future__ import annotations

REFLECTANCES: dict[str, float] = {
    "white paint": 0.8,
    "plaster": 0.8,
    "pastel paint": 0.6,
    "light yellow brick": 0.6,
    "light stucco": 0.55,
    "light grey": 0.4,
    "light brown brick": 0.4,
    "concrete": 0.3,
    "sandstone": 0.3,
    "red brick": 0.2,
    "dark red": 0.1,
    "dark granite": 0.1,
    "black": 0.1,
}
"""Diffuse reflectance, +-0.1 at best: printed tables of two makers of lamps; light stucco from memory. [-]"""
