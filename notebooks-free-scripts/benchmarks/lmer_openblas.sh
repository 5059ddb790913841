#!/bin/sh
# Runs an lmer script with OpenBLAS in place of the reference BLAS: lmer_openblas.sh FOLDER_OF_LIBS SCRIPT ARGS...
libs=$1; shift
LD_PRELOAD=$libs/libblas.so.3:$libs/liblapack.so.3 LD_LIBRARY_PATH=$libs exec Rscript "$@"
