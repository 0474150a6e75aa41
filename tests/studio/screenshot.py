"""What a page in the browser looks like."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from playwright.sync_api import Page


def shot(page: Page) -> np.ndarray:
    """The window's pixels, RGB."""
    data = np.frombuffer(page.screenshot(), np.uint8)
    return cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
