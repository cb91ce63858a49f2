"""Forward and inverse kinematics, paths and timing, and the Motion they end in.

- curve.Motion(joints, breaks_s, coefficients)       .at .then .between .extremes .hold
- forward.forward(tree, q, links=None)               T_world_link (..., L, 4, 4)
- forward.Chain.of(tree, base_link, tip_link, joints=None, held=None)
  .joints .limits .velocity .forward(q, tool=None) .frames(q) .margins(q) .reach_m
- jacobian.jacobian(chain, q, tool=None)             (..., 6, n), linear rows first, base frame
- jacobian.smallest_singular_value / singular_values / manipulability / hessian
- inverse.solutions(chain, T_base_tool, tool=None, pinned=None, seed=0) -> (k, n); .nearest(..., reference) -> (n,)
  raises errors.ReachError(.short_m, .short_rad, .stopped_by, .reason); inverse.solve(chain, T, seeds) -> Attempts
"""
