"""Solutions in closed form or as summed series, each with its formula and its outside source.

Nothing here knows the grid: these are the yardsticks that the solver is held against.

slab                 one-dimensional stacks: layers, joints, heated planes, volume heat, films
half_space           heated patches on a body without end
flux_channel         heated rectangles on a stack of layers with adiabatic edges
discs                the same for discs, exact and as the approximation of Lee, Song, Au and Moran
fins                 straight fin, long rod
nonlinear            conductivity that varies with temperature; leakage and its runaway
iso10211             the square column of EN ISO 10211, case 1
transient            slabs and half spaces in time, lumped bodies, the coolant loop
reference_solutions  those of them that the table of references names, with the numbers of its case files put in
"""
