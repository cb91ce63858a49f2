"""Forward and inverse kinematics, paths and timing, and the Motion they end in.

- curve.Motion(joints, breaks_s, coefficients): .at .then .between .extremes .hold
- forward.forward(tree, q, links=None) -> T_world_link (..., L, 4, 4)
- chain.Chain.of(tree, base_link, tip_link, joints=None, held=None)
  .joints .limits .velocity .forward(q, tool=None) .frames(q) .margins(q) .levers(tool) .reach_m
- jacobian.jacobian(chain, q, tool=None) -> (..., 6, n), linear rows first, base frame
  .smallest_singular_value .singular_values .hessian_of
- inverse.ways(chain, T_base_tool, tool=None, pinned=None) -> Ways: q (k, n) and whether they are all;
  .solutions(...) -> (k, n); .nearest(..., reference) -> (n,)
  raises errors.ReachError (.short_m .short_rad .stopped_by .reason); .solve(chain, T, seeds) -> Attempts
- path.joint_segment(joints, start, end) -> Path
- line.straight_line(chain, start, goal, tool=None, pinned=(), end=None, near=None) -> Path
- timing.time_path(path, RateLimits(velocity, acceleration, tip_speed_m_s, tip_angular_speed_rad_s), start_s,
  slow_zones=[(s0, s1, factor)], chain=None, tool=None) -> Motion; .law_of .compose .smooth
- speed.tip_speed_maximum(chain, motion, tool) -> (lower, upper, time)
"""
