def preset_names(): return ()
