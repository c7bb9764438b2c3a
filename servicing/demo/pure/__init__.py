"""The invented fleet that the demo shows. Plain values in, plain values out."""

from servicing.demo.pure.fleet import DemoFleet, demo_fleet

__all__ = ["DemoFleet", "demo_fleet"]
