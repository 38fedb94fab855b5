"""Made photographs with exact truth: random frames, a small ray tracer, cameras, truth files.

A developer's tool, no part of the product.  `python -m tests.render --help` makes whole data sets;
`tests.render.make.quick_frame` makes one small frame in memory for tests.
NumPy is enough; with CuPy on a machine that has a CUDA device the same code runs there.
"""
