"""Made a package, so that no package of the same name that another distribution installs stands before it."""
