"""A frame written for other programs and for people.

- entry: one thing that a frame can be written as, and a request for it
- registry: all that a frame can be written as, an entry each; command line and page read it
- frame_tables: members and joints as CSV
- dxf: three views at full size
- meshes: members as triangles
- gltf: members as solids
"""
