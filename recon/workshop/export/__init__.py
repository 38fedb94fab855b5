"""A frame written for other programs and for people.

- entry: one thing that a frame can be written as, and a request for it
- registry: all that a frame can be written as, an entry each; command line and page read it
- frame_tables: members and joints as CSV
- dxf: three views at full size
- placed_bolts: bolts as solids in their places
- meshes: members and bolts as triangles
- gltf: members and bolts as triangles in one file
- step: members and bolts as solids for CAD programs
"""
