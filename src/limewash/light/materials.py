"""How much light usual wall surfaces give back."""

from __future__ import annotations

REFLECTANCES: dict[str, float] = {
    "white paint": 0.8,  # [1]; [2] has 0.9
    "plaster": 0.8,  # [1]
    "pastel paint": 0.6,  # [2]
    "light yellow brick": 0.6,  # [2]
    "light stucco": 0.55,  # 0.4 to 0.7, from memory; no table seen
    "light grey": 0.4,  # [1], [2]
    "light brown brick": 0.4,  # [2]
    "concrete": 0.3,  # [1]
    "sandstone": 0.3,  # [2]
    "red brick": 0.2,  # [1]
    "dark red": 0.1,  # [1]
    "dark granite": 0.1,  # [2]
    "black": 0.1,  # [1]
}
"""Diffuse reflectance, a tenth more or less; dirt and rain take some of it. [-]

.. [1] a lamp maker's table of reflectances, osrammiddleeast.com, pop_Reflection_c.jsp
.. [2] a luminaire maker's table for facades, bega.com/en/knowledge/about-light-and-illumination
       (its illuminances do not follow from its reflectances; only these were taken)
"""
