// placeholder until this room has its first source
