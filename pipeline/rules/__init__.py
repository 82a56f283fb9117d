"""The rules core: rules as data, compiled to one decision diagram for each code and date."""
