"""Jarsight: will the tank stay clear?"""
