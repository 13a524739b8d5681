"""What the files leave, held against the works: walls, floors, holes, the deck."""
