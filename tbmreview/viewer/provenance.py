"""x"""
def provenance_line(source):
    return "provenance to come"
