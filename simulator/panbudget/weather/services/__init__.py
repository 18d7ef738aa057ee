"""
Services: daily weather asked of public services, only by the command that says so. No other room asks another machine.
"""
