"""The finished upper face as a height h(x, y), from stations, a mesh or a grid."""
