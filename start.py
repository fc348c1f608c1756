#!/usr/bin/env python3
"""Placeholder of the first hour: replaced before anything is called done."""
