"""The frame and its rules: members, joints, lattice arithmetic, stock, the frame file.  Knows no pixels."""
