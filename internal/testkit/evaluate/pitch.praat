# Pitch of each recording in a list: its first time and time step on the output,
# its values, 0 where unvoiced, in a file beside it.
form Pitch
  text list
  text method
  real voicing
  real silence
  real lowest
  real highest
endform
files = Read Strings from raw text file: list$
count = Get number of strings
for i to count
  selectObject: files
  path$ = Get string: i
  sound = Read from file: path$
  if method$ = "ac"
    pitch = To Pitch (ac): 0.01, lowest, 15, "no", silence, voicing, 0.01, 0.35, 0.14, highest
  else
    pitch = To Pitch (cc): 0.01, lowest, 15, "no", silence, voicing, 0.01, 0.35, 0.14, highest
  endif
  first = Get time from frame number: 1
  step = Get time step
  values = To Matrix
  Save as headerless spreadsheet file: path$ + "." + method$
  appendInfoLine: fixed$ (first, 9), " ", fixed$ (step, 9)
  removeObject: sound, pitch, values
endfor
